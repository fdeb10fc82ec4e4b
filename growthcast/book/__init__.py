"""THE BOOK: text to rows. Files and findings, no maths."""
