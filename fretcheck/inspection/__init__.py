"""What an inspection is and what two of them say: the document, how it is judged and put together, where its doubt comes from."""
