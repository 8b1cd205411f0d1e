"""The one look of all drawings: colours, weights, letters, symbols, paper."""
