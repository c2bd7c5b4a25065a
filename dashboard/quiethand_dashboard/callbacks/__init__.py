"""Fetch from the store, call a figure, return. Bodies are plain functions and need no app; `register` connects them."""
