"""What hangs on the pins: lines decoded from their edges alone, as the board would see them."""
