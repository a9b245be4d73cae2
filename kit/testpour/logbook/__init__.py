"""The log of pours and readings, where nothing is ever changed: a correction is a new row.

In: entries from the bench, spreadsheets and photographs.
Out: the castings table, one row per casting, and copies of the log.
"""
