"""testpour: learn your own casting resin in your own room with a few well-chosen test pours."""
