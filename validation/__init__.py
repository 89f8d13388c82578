"""What the numbers rest on: published results, reference solutions, lessons, benchmarks.

The rooms: exact, sections, reference_fem, cases, lessons, and, run from a checkout only, random and
benchmarks; gallery holds short scripts from Python.
"""
