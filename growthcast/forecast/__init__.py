"""FORECASTS: heights and crossings at a date."""
