"""The page at the machine: a folder of machines, hobs and jobs in a browser, on this computer alone unless told."""
