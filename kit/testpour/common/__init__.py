"""What every package leans on and nothing of resin is in: units, words, problems, files.

In: text, numbers, paths.
Out: floats in declared units, plain sentences, files written whole, one kind of error.
"""
