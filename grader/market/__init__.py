"""Many listings: read, measured, valued and ranked; on one machine, or on several through Dask."""
