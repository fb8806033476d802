"""What the trade means by its words: data and small named functions, each with its citation."""
