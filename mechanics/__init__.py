"""What pulling a cable along a chain of straights and curves does: numbers only."""
