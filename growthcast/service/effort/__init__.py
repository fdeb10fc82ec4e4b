"""Time and money: minutes of trimming fitted from the log, hours and cost a year with ranges."""
