"""One file in `versions/` for each change of the schema, run in order by `schema`. A released one never changes."""
