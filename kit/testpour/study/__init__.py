"""What a study declares, and what applies to every study: columns, aims, cautions, materials.

In: `study.toml`, `catalogue.toml`, settings and readings.
Out: a `Study` with its factors, readings and aims; refusals and warnings; figures labelled as declared.
"""
