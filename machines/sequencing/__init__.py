"""In which order a pile changes over quickest."""
