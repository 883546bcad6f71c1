"""The twelve lessons that come with Busbox, one file each, with an object ``LESSON``."""
