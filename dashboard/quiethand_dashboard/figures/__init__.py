"""Pure functions from data to Plotly figures. No store, no clock, no ids: the same data gives the same figure."""
