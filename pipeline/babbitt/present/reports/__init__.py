"""Reports: pages to print and keep, each one file of HTML that needs nothing else."""
