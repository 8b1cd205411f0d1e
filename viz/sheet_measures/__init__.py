"""The words of the sheet about what is measured and tried at the machine."""
