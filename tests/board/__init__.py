"""What hangs on the pins."""
