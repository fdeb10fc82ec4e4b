"""The log as visits: the one reading of trims.csv, which fit, backtest and pictures ask."""
