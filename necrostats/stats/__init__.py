"""Pure statistics on numpy arrays: numbers in, numbers out, and no clinical word."""
