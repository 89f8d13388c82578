"""What every room of the solver may use: progress, parallel maps, writing, units in print.

In: callables, texts and numbers.  Out: results in order, files that are never half written, and
numbers in readable units.
"""
