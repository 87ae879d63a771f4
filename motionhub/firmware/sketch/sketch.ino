// {name}: the program on the robot. README.md says how to build it and how to load it.
//
// The program is in src/. Here are only the two functions that the hobby-board editor expects: setup() never
// returns, and the editor's own timer is stopped in it, because nothing may delay a servo's pulse.
#include "src/program.h"

void setup() { motionhub::run(); }

void loop() {}
