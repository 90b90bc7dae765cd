#include "keys.h"

#include <ctype.h>
#include <poll.h>
#include <signal.h>
#include <stddef.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static const int ends[] = {SIGINT, SIGTERM, SIGHUP};
enum { ENDS = sizeof ends / sizeof ends[0] };

/* A program has one terminal and one set of signal handlers, so this is one state as well. */
static struct {
    struct sigaction before[ENDS], suspend;
    struct termios terminal;
    bool open, keys, over; /* over: standard input has ended */
} state;
static volatile sig_atomic_t interrupted;

static void interrupt(int number) {
    (void)number;
    interrupted = 1;
}

bool lay_keys_open(void) {
    struct sigaction act = {.sa_handler = interrupt}, ignore = {.sa_handler = SIG_IGN};
    interrupted = 0;
    for (int i = 0; i < ENDS; i++) {
        sigaction(ends[i], NULL, &state.before[i]);
        /* What the caller has us ignore (nohup) stays ignored. */
        if (state.before[i].sa_handler != SIG_IGN) sigaction(ends[i], &act, NULL);
    }
    sigaction(SIGTSTP, &ignore, &state.suspend);
    state.open = true;
    state.over = false;
    state.keys = isatty(STDIN_FILENO) && tcgetattr(STDIN_FILENO, &state.terminal) == 0;
    if (state.keys) {
        struct termios raw = state.terminal;
        raw.c_lflag &= ~(tcflag_t)(ICANON | ECHO);
        raw.c_cc[VMIN] = 0;
        raw.c_cc[VTIME] = 0;
        state.keys = tcsetattr(STDIN_FILENO, TCSANOW, &raw) == 0;
    }
    return state.keys;
}

void lay_keys_close(void) {
    if (!state.open) return;
    if (state.keys) tcsetattr(STDIN_FILENO, TCSANOW, &state.terminal);
    for (int i = 0; i < ENDS; i++) sigaction(ends[i], &state.before[i], NULL);
    sigaction(SIGTSTP, &state.suspend, NULL);
    state.open = state.keys = false;
}

int lay_keys_wait(int milliseconds) {
    if (!state.keys || state.over) {
        nanosleep(&(struct timespec){milliseconds / 1000, milliseconds % 1000 * 1000000L}, NULL);
        return LAY_KEY_NONE;
    }
    struct pollfd in = {.fd = STDIN_FILENO, .events = POLLIN};
    char keys[16] = {0};
    if (poll(&in, 1, milliseconds) <= 0) return LAY_KEY_NONE;
    state.over = read(STDIN_FILENO, keys, 1) < 1; /* the terminal has gone: no more keys, no busy waiting */
    /* Esc with more behind it is an arrow or a function key. */
    if (keys[0] == '\033' && poll(&in, 1, 0) > 0 && read(STDIN_FILENO, keys, sizeof keys) > 0) return LAY_KEY_NONE;
    return tolower((unsigned char)keys[0]);
}

bool lay_keys_interrupted(void) {
    return interrupted != 0;
}
