"""What the gap does above its onset, as rows for the review; no further solves.

In: field, onset and design.  Out: `ReviewRow`s for electrons, breakdown, current, feed and supply,
thrust and exhaust speed, and the same gap with other metals.
"""
