"""Lines as edges: waves, captures, decoding of serial and lamp lines."""
