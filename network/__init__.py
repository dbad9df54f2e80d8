"""The graph of vaults and ducts: feeder routes, pulls, sections, plans."""
