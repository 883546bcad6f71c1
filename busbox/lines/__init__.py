"""Lines as edges: waves, captures, serial and lamp lines decoded."""
