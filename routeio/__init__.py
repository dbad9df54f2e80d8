"""Files to routes: readers, cleaning, curve recovery, findings."""
