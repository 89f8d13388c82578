"""Quantities with units, the errors of the package, and the files that a design names.

In: texts such as "4 um" and paths.  Out: SI floats with their kind, texts for messages, contents
of files, and `ConegapError` with its kinds.  Every other room may import this one.
"""
