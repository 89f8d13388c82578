"""Short scripts that use conegap from Python; each prints what it computed beside what is expected.

Run one with ``python -m conegap.validation.gallery.needle_onset``; its exit code is 0 when the two
agree.  They stand alone: copy one and change it.
"""
