"""The report: first sheet, parts, page, PDF and field files.

In: an `Assessment` and its pictures.  Out: HTML that needs nothing else, PDF, VTU and XDMF, from
the same parts.
"""
