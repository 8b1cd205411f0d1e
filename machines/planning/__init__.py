"""From the drawing to set-ups that the machine and its drawers allow."""
