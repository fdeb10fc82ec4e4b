"""The paper: pages for clients and for the practice."""
