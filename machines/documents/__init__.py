"""The documents: machines, jobs, observations, samples, racks of hobs, and the tables of their keys."""
