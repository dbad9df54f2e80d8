"""Cable pulling in duct banks: job files, commands and what is handed over."""
