"""Everything that leaves or enters as a file: sheets, data packages, study folders, thermocouple traces.

In: the log to be written to a file, or a file from elsewhere, which is checked before it is used.
Out: a file, or castings and traces read from one, with any problems in it.
"""
