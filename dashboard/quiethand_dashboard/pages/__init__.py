"""Layout only: each page is a function that returns components. It reads nothing and computes nothing."""
