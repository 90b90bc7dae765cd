/* Plays a recording through a sound device for as long as it lasts: play_sound FILE DEVICE. */
#include <layshaft/signal.h>

#include <stdio.h>

int main(int argc, char **argv) {
    lay_error err = {0};
    if (argc != 3) return 2;
    if (lay_sound_play(argv[1], argv[2], 1, NULL, NULL, &err) == LAY_OK) return 0;
    fprintf(stderr, "%s\n", err.message);
    return 1;
}
