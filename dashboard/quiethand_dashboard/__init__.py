"""The page: ids, pages (layout), figures (pure functions from data to a figure) and callbacks (fetch, draw, return)."""
