"""The page's entry where it is open to a network: ``main.py`` behind the gate."""

from __future__ import annotations

import os

import streamlit as st
from starlette.middleware import Middleware

from app.gate import Gate
from grader.page_code import CODE_VARIABLE

app = st.App("main.py", middleware=[Middleware(Gate, code=os.environ[CODE_VARIABLE])])
