"""The manual: ``busbox guide``.

A topic is one page of Markdown. Those that somebody wrote stand in ``pages``; a line ``{{NAME}}`` in
one is replaced by what code makes of the declarations (:mod:`busbox.guide.inserts`). The pages of
models, attachments and rules are made whole. A terminal and the HTML page show the same tokens.
"""
