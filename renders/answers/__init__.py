"""The photographer's questions, answered from computed light; questions.md defines each answer."""
