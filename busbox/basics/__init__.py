"""Tools without knowledge of the bus: errors, units, columns, ranges, files, terminal output."""
