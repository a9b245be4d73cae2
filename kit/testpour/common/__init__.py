"""Helpers that every package uses and that know nothing of resin: units, words, problems, files.

In: text, numbers, paths.
Out: floats in declared units, plain sentences, files written whole, one kind of error.
"""
