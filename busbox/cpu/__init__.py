"""What plays traffic: steps, and the sources that they come from."""
