"""The manual: ``busbox guide``.

A topic is one page of Markdown. The written ones are in ``pages``; a line ``{{NAME}}`` in one of them
is replaced by text made from the declarations (:mod:`busbox.guide.inserts`). The pages of models,
attachments and rules are made from declarations alone. Terminal and HTML page show the same tokens.
"""
