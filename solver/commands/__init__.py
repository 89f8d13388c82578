"""The command line: one module per command, with its arguments and its words.

In: arguments.  Out: files, tables, exit codes.  Heavy imports stay inside functions, so that help
answers at once; this room alone of the solver reaches the cases and lessons of `validation`.
"""
