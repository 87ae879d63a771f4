"""What the robot is: description, geometry, kinematics, servos. Knows nothing of time, moves or sockets."""
