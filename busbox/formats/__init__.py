"""Traffic files, one module a format: lines in, steps out."""
