"""Predictions of conegap beside what was measured and published.

In: `cases.toml`, what each source states and how far it was read, and a design file for every case
that is a gap, whose tolerances hold what had to be assumed.  Out: predicted bands beside measured
values, the share that lies inside and the median ratio.  Where a source is silent no case is made.
"""
