"""The page: seven sheets in a browser, for people who never type a command.

Asks `bench` for everything and holds no rule of the trade. Not for the terminal; `cli` starts
it with `serve`. Built on Starlette, uvicorn and Jinja2.
"""
