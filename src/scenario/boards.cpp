#include "scenario/boards.h"

namespace hopbench {

std::vector<BoardInfo> boards_of(const ChainDescription& chain) {
  std::vector<BoardInfo> boards;
  for (const NodeSpec& node : chain.nodes) {
    const KindSpec& kind = chain.kinds[node.kind];
    BoardInfo board;
    board.name = node.name;
    board.cells = kind.cells;
    board.spec = node.board ? *node.board : kind.board;
    board.level_uv = kind.levels.level_uv;
    boards.push_back(board);
  }
  for (const StartSpec::Standing& standing : chain.start.nodes) {
    boards[standing.node].charge_ppm = standing.charge_ppm;
    boards[standing.node].board_mc = standing.board_mc;
  }
  return boards;
}

}  // namespace hopbench
