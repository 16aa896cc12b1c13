"""Jobs of ours: rows of dots and cards as G-code, with the sheet that says everything of them."""
