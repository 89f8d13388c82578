"""A lot of measured articles of one design.

In: a design and a table with one row an article, its measured dimensions and perhaps its measured
onset.  Out: the onset of every article, spread, outliers, the article for each supply,
correlations, and the hidden parameter that all measured onsets share.
"""
