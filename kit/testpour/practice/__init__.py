"""Invented resins and workshops to practise on, whose true behaviour is known.

In: a seed, and settings to pour at.
Out: readings as a bench would make them, filled logs, and lessons.
"""
