"""The day of pouring: what to weigh, what to print, what to tap, what is due.

In: a study, a plan and the log.
Out: the weigh-out, bench sheet, labels, session form, and the readings due.
"""
