"""Fetch from the store, call a figure, return. Bodies are plain functions that need no app; `register` connects them."""
