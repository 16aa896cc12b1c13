"""The daemon as the page sees it: what is asked of it, and what it says by itself."""
