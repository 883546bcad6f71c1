"""What knows no bus: errors, units, growing columns, ranges, files, paper for a terminal."""
