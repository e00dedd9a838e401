#include "coexist/promise.h"

#include <array>

namespace hopbench {
namespace {

constexpr std::array<Promise, promise_count> all{{
    {"old-answers", "Old nodes answer as before, and no later than the added hops explain.",
     "Each chain is run with and without its new nodes, and each old node's answers are compared.",
     "A chain in service gets worse the day a new node joins it."},
    {"passes-on", "What is not for the new node passes through it unchanged.",
     "Frames of every topic and length, of unknown topics and of other revisions are sent through it and compared.",
     "A question to an old node dies in the new one, or comes out of it as another."},
    {"old-controller", "A controller that knows only old nodes gets right answers from the new node, or a refusal.",
     "The new node is asked what old nodes are asked, in the same way.",
     "The controller gets no value of the new node, or takes something else for one."},
    {"in-time", "Every ask is answered at the first try and in time, at any place.",
     "Each node is asked all that the plan asks; the worst case is reckoned as well.",
     "Replies go missing, and retries take the time of others."},
    {"room", "No frame is longer than a buffer that it passes.",
     "The longest asks and answers of every kind are sent through every kind.",
     "A long frame disappears on its way, every time."},
    {"addresses", "Every node gets its address, in every order, and answers to no other.",
     "Nodes are given addresses, also high ones, and asked; each must tell what it tells with a fixed address.",
     "Two nodes answer as one, or a cell is read as another."},
    {"to-everyone", "A command to everyone is acted on once by each, and answered by none.",
     "One is sent while nothing else goes on; frames on every hop are counted.",
     "Answers collide, or a node does not do what all were told to."},
    {"after-damage", "After any damage the next exchange is clean, and no damage is taken for an answer.",
     "One bit of each byte of each frame is damaged on each hop, and what follows is looked at.",
     "One disturbance costs more than one reply, or gives a wrong value."},
    {"clocks", "Neighbours understand each other over the whole range of temperature and supply.",
     "The clocks of each pair of neighbours are set as far apart as their kinds allow.",
     "The chain works on the bench and fails in summer."},
    {"restarts", "The chain recovers from the reset or the silence of any node.",
     "Each node is reset in mid-traffic, and falls silent for a while; then all are asked.",
     "One brown-out takes the chain down until somebody comes, or makes one board answer for another."},
    {"balancing", "All of that holds while as many cells balance as can.",
     "The promises before are tried once more with every cell bled.", "It works until the batteries are full."},
    {"numbers", "Late and repeated answers are never taken for those of another exchange.",
     "Answers are held up beyond the time-out and repeated, also where exchange numbers begin anew.",
     "A value of yesterday passes for one of today."},
    {"cost", "The controller's own limits still hold.",
     "The polling round and the longest time a cell may go unread are reckoned for the longest chain.",
     "Nodes or cells stay unread, or protection acts later than it has to."},
    {"electrical", "Levels, drive and isolation fit together.", "Not tried here: the designer confirms it.",
     "A node is destroyed, or destroys another."},
}};

}  // namespace

std::span<const Promise, promise_count> promises() { return all; }

}  // namespace hopbench
