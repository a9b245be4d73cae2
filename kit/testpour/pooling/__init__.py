"""The logs of several benches analysed together.

In: logs, data packages or study folders of one kind of resin.
Out: joint fits, how much benches differ, and what a bench that has no log may expect.
"""
