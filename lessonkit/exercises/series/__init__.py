"""The exercises of the series, a room or two for each workbook."""
