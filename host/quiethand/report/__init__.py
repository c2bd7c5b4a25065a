"""A report for an archer and a span of days: figures, plain words, how sure they are, and the cautions.

`gathered` asks the store, `usual_part`, `changed` and `group_part` work out what is said, `charts` draws small SVG
figures, and `page` puts it all into one HTML file that needs nothing from outside and prints to two A4 pages.
"""
