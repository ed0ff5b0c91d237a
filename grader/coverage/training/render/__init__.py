"""Path-traced training pictures of invented boards, with exact plated shares.

``python -m grader.coverage.training.render`` writes a folder of pictures. It needs the extra ``train`` (Mitsuba,
Shapely, SciPy), which nothing else in the project imports.
"""
