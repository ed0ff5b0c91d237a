"""Path-traced training pictures of invented boards, with exact plated shares.

``python -m grader.coverage.training.render`` writes a folder of pictures. Needs the extra ``train`` (Mitsuba,
Shapely, SciPy), which nothing else of the project imports.
"""
