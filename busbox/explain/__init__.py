"""Why something happened, and where two runs differ."""
