"""A developer's tool that trains the learned coverage model.

It needs PyTorch, and ``onnx`` for the export; the product imports neither. ``grader/coverage/weights/MODEL.md``
describes training, export and the folder format of the data.
"""
