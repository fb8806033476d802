"""The invented unit's spreadsheet as five people typed it, and what each of its cells must become."""
