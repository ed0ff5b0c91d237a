"""Developer's tool that trains the learned coverage model. Needs PyTorch, which the product itself never imports.

How to train and export, and the folder format of the data: ``grader/coverage/weights/MODEL.md``.
"""
