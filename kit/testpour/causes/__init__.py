"""Why a casting came out as it did.

In: one casting of the log, its fits, and what the maker answers.
Out: causes ranked with the evidence, questions worth asking, and what would have saved the casting.
"""
