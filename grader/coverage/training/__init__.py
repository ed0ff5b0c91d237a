"""Developer's tool that trains the learned coverage model.

Needs PyTorch, and to export ``onnx``; the product imports neither. How to train and export, and the folder format of
the data: ``grader/coverage/weights/MODEL.md``.
"""
