"""PAGES: what the desk shows, a function a page; every one works without script."""
