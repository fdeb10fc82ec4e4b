"""Every sentence a person reads as an answer: results in, words out."""
