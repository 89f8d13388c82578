"""What tips and lips do to each other: crowns, arrays, ends of slits.

In: sector solutions.  Out: influence matrix, firing order, screening, and their rows and words.
"""
