"""What objects show of themselves in a notebook, and the notebook that comes with Busbox."""
