"""Water systems at a site: volumes, plant register, animals, and where they stand since when."""
