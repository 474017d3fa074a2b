-- Makes the store's tables plain names.
USE store
