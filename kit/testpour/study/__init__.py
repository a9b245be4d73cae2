"""What a study asks, and what holds for any of them: columns, aims, cautions, materials.

In: `study.toml`, `catalogue.toml`, settings and readings.
Out: a `Study` with its factors, readings and aims; what is refused or warned about; figures labelled as declared.
"""
