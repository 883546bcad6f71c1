"""Busbox against values from outside; every check names its source beside it."""
