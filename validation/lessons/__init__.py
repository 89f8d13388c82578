"""The course: chapters that ask for a guess, compute, and compare with what is known.

In: a learner's guesses and answers.  Out: findings, figures and judged answers, told in the
terminal, on a page or as a notebook.  `course` lists the chapters; one module holds each.
"""
