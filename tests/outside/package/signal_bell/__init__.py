"""A station bell for Busbox, as somebody outside would write it."""
