"""The words of the sheet, part by part."""
