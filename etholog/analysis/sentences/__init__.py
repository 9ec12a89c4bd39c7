"""What measures come to, in one or two sentences for somebody who never learned statistics.

Each sentence is a whole template with named parts, so that it can be translated. It gives the uncertainty in words and
in numbers, and claims nothing that the numbers do not carry.
"""
