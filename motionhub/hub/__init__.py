"""The live show: what moves the joints, who may say so, and what may follow from what.

* ``commands``, ``events``, ``snapshot``: what goes in, what comes back, what is seen of it.
* ``states``: the modes and the one table that changes them. ``lease``: who drives. ``orders``: each command.
* ``core``: the hub itself, ``tick(now)`` and ``handle(client, command, now)``, without clock or I/O.
* ``stage``, ``director``, ``sources``: what moves the joints, one source at a time, and what comes after it.
* ``bearing``: how far a body may lean. From stance to stance without dragging a foot: ``motion.handover``.
* ``guard``, ``battery``, ``figure``, ``recorder``: the last look, the voltage, how it stands, what was sent.
* ``live`` and what it uses (``keeper``, ``repertoire``, ``verdicts``, ``lateness``): the same in real time.
"""
