"""Temperature traces of a thermocouple logger: read, judged, drawn, logged."""
